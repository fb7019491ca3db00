"""The machine before its run: what is measured with rule, gauge and watch, and what it means."""
