//! The real core in small worlds, explored completely: every placement of a few deeds that go wrong.
//!
//! A world is a station, a plant of cells and beats, and what the rules must remember. From each state, every beat that may come
//! is taken; states that will go on alike count once. What is abstracted, and what that loses, stands in the handbook
//! (`docs/src/exploration.md`).
//!
//! | part | is |
//! |---|---|
//! | [`setup`] | the machines, products and kinds of world |
//! | [`plant`], [`deed`] | bottles, actuators, contacts, operator; what goes wrong |
//! | [`world`], [`key`] | one state, one beat; when two states are the same |
//! | [`monitor`], [`rules`] | R1 … R16 from outside |
//! | [`recovery`] | from every state back to work, and to rest |
//! | [`sabotage`] | proof that the harness can fail |
//! | [`model`], [`show`] | the exploration, and a counter-example as a timeline |

pub mod deed;
pub mod key;
pub mod model;
pub mod monitor;
pub mod plant;
pub mod recovery;
pub mod rules;
pub mod sabotage;
pub mod setup;
pub mod show;
pub mod world;
