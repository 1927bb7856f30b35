"""The shelf: judged drives of every car as open Parquet files, asked across months. SHELF.md describes the files."""
