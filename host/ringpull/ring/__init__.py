"""From ring files to values: blocks in order, rows unpacked, values in engineering units."""
