"""What a report says as a whole: of lines further down, of what came back, of its own end."""
