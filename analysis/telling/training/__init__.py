"""What a training study says: sentences, tables, figures."""
