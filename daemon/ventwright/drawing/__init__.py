"""Pictures of air: laid out once as shapes, painted as SVG or PNG; knows no store and no rule."""
