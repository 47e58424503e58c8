"""Every text that a user reads, in English and German."""
