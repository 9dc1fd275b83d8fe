"""Windows, gaps and lineage: small checks over stated tables, none of which ever changes a record."""
