"""From blocks to sessions of rows: setup, gaps, unpacked columns."""
