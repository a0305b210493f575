"""Recording to document, and a document drafted again around what was decided."""
