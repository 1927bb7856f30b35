"""From ring files to values: blocks in order, unpacked rows, values in engineering units."""
