"""Colour mathematics: arrays in, arrays out; knows no file and no database."""
