"""What to keep, re-aim, re-shoot, re-measure, and what is not judged."""
