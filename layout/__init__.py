"""The engine: from a checked plan to a neutral drawing and its files. It knows no terminal."""
