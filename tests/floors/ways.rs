//! Every path in a source file, as the room or the crate that it leads to.

use proc_macro2::{TokenStream, TokenTree};
use syn::visit::{self, Visit};
use syn::{Attribute, File, ItemMod, ItemUse, Macro, Meta, Path, UseTree};

/// Where a path leads.
#[derive(Debug, PartialEq)]
pub enum Way {
    /// A room of this crate.
    Room(String),
    /// The first name of a path that does not begin at this crate: a crate, or something local.
    Crate(String),
}

/// The ways out of the file at `module` below `src`.
pub fn ways_of(module: &str, file: &File) -> Vec<Way> {
    let mut here: Vec<String> = module.trim_end_matches(".rs").split('/').map(str::to_owned).collect();
    if matches!(here.last().map(String::as_str), Some("mod" | "lib" | "main")) {
        here.pop();
    }
    let mut visitor = Visitor { here, ways: Vec::new() };
    visitor.visit_file(file);
    visitor.ways
}

struct Visitor {
    /// Module path of the place visited, from the crate's root.
    here: Vec<String>,
    ways: Vec<Way>,
}

impl Visitor {
    /// Resolves the leading `crate`, `self`, `super` of a path and notes what it leads to.
    fn note(&mut self, path: &[String]) {
        let mut place: Option<Vec<String>> = None;
        for name in path {
            match (name.as_str(), &mut place) {
                ("crate" | "stook", None) => place = Some(Vec::new()),
                ("self", None) => place = Some(self.here.clone()),
                ("super", None) => {
                    let mut above = self.here.clone();
                    above.pop();
                    place = Some(above);
                }
                ("super", Some(above)) => {
                    above.pop();
                }
                (name, None) => {
                    self.ways.push(Way::Crate(name.to_owned()));
                    return;
                }
                (name, Some(place)) => {
                    place.push(name.to_owned());
                    break;
                }
            }
        }
        if let Some(room) = place.as_ref().and_then(|place| place.first()) {
            self.ways.push(Way::Room(room.clone()));
        }
    }

    fn note_tree(&mut self, prefix: &mut Vec<String>, tree: &UseTree) {
        match tree {
            UseTree::Path(path) => {
                prefix.push(path.ident.to_string());
                self.note_tree(prefix, &path.tree);
                prefix.pop();
            }
            UseTree::Group(group) => group.items.iter().for_each(|tree| self.note_tree(prefix, tree)),
            UseTree::Name(name) => self.note_leaf(prefix, &name.ident.to_string()),
            UseTree::Rename(rename) => self.note_leaf(prefix, &rename.ident.to_string()),
            UseTree::Glob(_) => self.note(&prefix.clone()),
        }
    }

    fn note_leaf(&mut self, prefix: &[String], name: &str) {
        let leaf = (name != "self").then(|| name.to_owned());
        let path: Vec<String> = prefix.iter().cloned().chain(leaf).collect();
        self.note(&path);
    }

    /// Paths inside a macro or an attribute, whose syntax is its own.
    fn note_tokens(&mut self, tokens: TokenStream) {
        let mut path: Vec<String> = Vec::new();
        let mut colons = 0;
        for token in tokens {
            match token {
                TokenTree::Ident(name) => {
                    if colons != 2 {
                        self.note_many(&mut path);
                    }
                    path.push(name.to_string());
                    colons = 0;
                }
                TokenTree::Punct(punct) if punct.as_char() == ':' => colons += 1,
                TokenTree::Group(group) => {
                    self.note_many(&mut path);
                    colons = 0;
                    self.note_tokens(group.stream());
                }
                _ => {
                    self.note_many(&mut path);
                    colons = 0;
                }
            }
        }
        self.note_many(&mut path);
    }

    fn note_many(&mut self, path: &mut Vec<String>) {
        if path.len() > 1 {
            self.note(path);
        }
        path.clear();
    }
}

impl<'ast> Visit<'ast> for Visitor {
    fn visit_item_use(&mut self, item: &'ast ItemUse) {
        self.note_tree(&mut Vec::new(), &item.tree);
    }

    fn visit_path(&mut self, path: &'ast Path) {
        let names: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        if names.len() > 1 {
            self.note(&names);
        }
        visit::visit_path(self, path);
    }

    fn visit_item_mod(&mut self, item: &'ast ItemMod) {
        self.here.push(item.ident.to_string());
        visit::visit_item_mod(self, item);
        self.here.pop();
    }

    fn visit_macro(&mut self, item: &'ast Macro) {
        self.note_tokens(item.tokens.clone());
        visit::visit_macro(self, item);
    }

    fn visit_attribute(&mut self, attribute: &'ast Attribute) {
        if let Meta::List(list) = &attribute.meta {
            self.note_tokens(list.tokens.clone());
        }
        visit::visit_attribute(self, attribute);
    }
}
