"""What is kept: models, database, files, dates, history."""
