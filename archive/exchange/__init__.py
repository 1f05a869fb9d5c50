"""File formats in and out as plain values; knows no database."""
