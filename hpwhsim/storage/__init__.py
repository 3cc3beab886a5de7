"""The store: one stratified column of water."""
