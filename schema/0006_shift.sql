-- Which moulds are in an oven, and which came out of one lately: asked by every screen, all the time.
CREATE INDEX oven_loads_by_time ON oven_loads (out_at);
