"""Pages of the practice layer: signing in, set-up, people, imports, audit."""
