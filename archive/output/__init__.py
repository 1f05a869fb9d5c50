"""Pages made from plain values: labels, cards, slips; they know no database."""
