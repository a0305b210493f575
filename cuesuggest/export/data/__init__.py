"""What other programs read: tables, JSON, annotations, scores."""
