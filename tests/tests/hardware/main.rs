//! The bench as it is drawn, and the guide, against each other and against what is published.

mod guide;
mod parts;
mod pins;
mod published;
mod spice;
mod support;
