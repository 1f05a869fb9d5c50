"""What can go through which machine, and in what order; knows no database."""
