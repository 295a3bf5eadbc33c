"""What a person is told: one telling per answer; terminal, paper and browser only lay it out."""
