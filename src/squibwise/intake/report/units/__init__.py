"""Which unit of which car a line comes from: headings, columns, names."""
