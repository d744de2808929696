"""The candidate topologies, listed by hand."""
