"""The telling room: mails made and handed to a server, and signed posts to another program; no store, no alert."""
