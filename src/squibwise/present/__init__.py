"""What a person is told, as plain records: the terminal, the page and the browser lay it out."""
