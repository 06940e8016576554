"""The stake tag in a photo: which number, how large, in which light."""
