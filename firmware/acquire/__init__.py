"""From pins to rows: edges, samples, the button. Handlers here allocate nothing."""
