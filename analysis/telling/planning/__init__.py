"""What planning says: sentences and figures."""
