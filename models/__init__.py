"""Physics and circuits of module-level inverters: pure functions of arrays."""
