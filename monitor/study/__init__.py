"""Studies by simulation with known truth: what the model keeps of its promises, what one's own limits would bring."""
