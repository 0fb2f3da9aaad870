"""The file format that everything else reads and writes: the record of a panel."""
