"""From rows to the card: blocks, the two ring files, finding the newest block after a power cut."""
