"""The built-in graphics load: compute kernels through `wgpu` (extra ``gpu``), exact and checked."""
