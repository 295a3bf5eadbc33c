"""Words, phrases and code forms of the languages: what a text is made of."""
