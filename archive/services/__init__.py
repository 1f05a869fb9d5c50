"""One module per task, called by every face."""
