"""What the person sees: words, tables, records, drawings and sheets."""
