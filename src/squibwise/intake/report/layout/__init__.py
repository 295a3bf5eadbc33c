"""Where things stand on a page: columns, tables, boxes, ticks, signs and their legends."""
