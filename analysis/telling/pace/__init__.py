"""What athletes did in the rounds: sentences, tables, figures."""
