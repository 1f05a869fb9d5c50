"""Pictures in, numbers out; knows no database."""
