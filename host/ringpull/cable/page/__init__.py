"""The logger's values on a page in the browser while it records, with a card for each pull that has ended."""
