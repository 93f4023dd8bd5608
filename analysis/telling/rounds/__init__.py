"""What the comparison of rounds says: sentences, tables, figures."""
