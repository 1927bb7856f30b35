"""One session judged: what is left out, lean events, uncertainty, verdict."""
