"""The blocks of ring files: found, checked, and put in the order in which they were written."""
