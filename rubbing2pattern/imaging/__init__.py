"""Pictures on grids: resampling, optical density, oriented bands, profiles across leads."""
