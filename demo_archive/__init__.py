"""The press simulator and the invented workshop that it prints for."""
