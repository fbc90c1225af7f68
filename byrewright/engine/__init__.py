"""The compiled plant: lowering, kernels, timed rows, operating maps. It knows laws, never kinds."""
