"""What goes into the box, how it is packed and when it travels. Pure: numbers and codes in, numbers and codes out."""
