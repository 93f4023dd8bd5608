"""What a survey of sessions says: sentences, tables, figures."""
