"""What a line claims: a fault is there, was, is denied, asked, supposed, another car's."""
