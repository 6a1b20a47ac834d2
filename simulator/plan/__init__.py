"""An equipment set on its fields as plain numbers, made once: what a simulated day looks up."""
