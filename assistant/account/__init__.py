"""What the records come to: rows, changes over time, lists to look through. Pure; no files, no formats."""
