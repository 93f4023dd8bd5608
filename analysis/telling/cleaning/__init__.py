"""What became of the recordings: sentences, tables, figures."""
