"""What the fitness question says: sentences, tables, figures."""
