"""Sheets, labels, pictures, calendar files and exports: finished values in, bytes or text out."""
