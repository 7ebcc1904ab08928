"""The program file: its fields (fields), its reader (load), its values (model) and its JSON Schema (schema)."""
