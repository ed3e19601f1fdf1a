//! Figures against the outside world: published values, theorems, and programs of others.

mod copper_published;
mod drop_ngspice;
mod import_demos;
mod network_ngspice;
mod network_published;
mod published_copper;
mod questions_published;
mod routes;
mod statistics_published;
mod transient_ngspice;
mod uncertainty_published;
mod watch_published;
