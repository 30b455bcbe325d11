"""Ways to reach customers and the shop's systems. One module each; see `seam` for what a channel is."""
