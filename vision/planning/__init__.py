"""Plans: what a layout would reach before any tape is laid, and layouts proposed for a vehicle."""
