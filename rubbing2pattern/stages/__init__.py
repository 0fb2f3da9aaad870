"""The stages: each one public function ``stage(datum, options) -> datum``; none imports another."""
