"""What every format needs: options, the time of the show, text that breaks no file."""
