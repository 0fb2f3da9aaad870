"""Test rubbings by another hand: other designs, other physics, other cameras."""
