"""What condition a plant is in: readings beside the model, what they fit, and what is wrong."""
