"""What is kept: files written whole or not at all, and cases stored so that nothing is lost."""
