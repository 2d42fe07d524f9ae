//! Figures of made-up trials, checked by what their SVG and PNG contain.

mod demo;
