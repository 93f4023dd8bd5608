"""What the comparison with published findings says: sentences, tables, figures."""
