"""What the designer says, as edits: about the music, the form, the light, and in answer to a question."""
