"""What several pages show: the look, the photo's editor, forms and words of cards and photos, colors of swatches."""
