"""Panels for the notebooks: controls wired to one pure function and one picture."""
