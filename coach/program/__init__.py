"""The program file: what it may say (fields), how it is read (load), what it becomes (model), its JSON Schema."""
