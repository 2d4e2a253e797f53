//! The tree of tags: what a reader of the PDF's structure finds, in reading order.

use std::num::NonZeroU16;

use krilla::tagging::{Identifier, ListNumbering, TableHeaderScope, Tag, TagGroup, TagKind, TagTree};

/// What a node of the tree is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Role {
    Section,
    Heading { level: u16, title: String },
    Paragraph,
    List,
    Item,
    ItemBody,
    Table,
    TableHead,
    TableBody,
    Row,
    ColumnHead,
    RowHead,
    Cell,
    Figure { alt: String },
    Caption,
}

/// A node of the tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NodeId(usize);

#[derive(Debug)]
struct Node {
    role: Role,
    children: Vec<NodeId>,
    leaves: Vec<Identifier>,
}

/// The tree while it grows. Nodes are in reading order among their siblings.
#[derive(Debug, Default)]
pub(super) struct Tags {
    nodes: Vec<Node>,
    roots: Vec<NodeId>,
}

impl Tags {
    /// Adds a node under the root.
    pub fn root(&mut self, role: Role) -> NodeId {
        let id = self.add(role);
        self.roots.push(id);
        id
    }

    /// Adds a node under another, after its present children.
    pub fn child(&mut self, parent: NodeId, role: Role) -> NodeId {
        let id = self.add(role);
        self.nodes[parent.0].children.push(id);
        id
    }

    /// Hangs drawn content on a node.
    pub fn attach(&mut self, node: NodeId, leaf: Identifier) {
        self.nodes[node.0].leaves.push(leaf);
    }

    /// The finished tree, of a document in British English.
    pub fn into_tree(self) -> TagTree {
        let mut tree = TagTree::new().with_lang(Some("en-GB".to_owned()));
        for root in &self.roots {
            tree.push(self.group(*root));
        }
        tree
    }

    fn add(&mut self, role: Role) -> NodeId {
        self.nodes.push(Node { role, children: Vec::new(), leaves: Vec::new() });
        NodeId(self.nodes.len() - 1)
    }

    fn group(&self, id: NodeId) -> TagGroup {
        let node = &self.nodes[id.0];
        let mut group = TagGroup::new(node.role.kind());
        for leaf in &node.leaves {
            group.push(*leaf);
        }
        for child in &node.children {
            group.push(self.group(*child));
        }
        group
    }
}

impl Role {
    fn kind(&self) -> TagKind {
        match self {
            Self::Section => Tag::Section.into(),
            Self::Heading { level, title } => {
                Tag::Hn(NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN), Some(title.clone())).into()
            }
            Self::Paragraph => Tag::P.into(),
            Self::List => Tag::L(ListNumbering::None).into(),
            Self::Item => Tag::LI.into(),
            Self::ItemBody => Tag::LBody.into(),
            Self::Table => Tag::Table.into(),
            Self::TableHead => Tag::THead.into(),
            Self::TableBody => Tag::TBody.into(),
            Self::Row => Tag::TR.into(),
            Self::ColumnHead => Tag::TH(TableHeaderScope::Column).into(),
            Self::RowHead => Tag::TH(TableHeaderScope::Row).into(),
            Self::Cell => Tag::TD.into(),
            Self::Figure { alt } => Tag::Figure(Some(alt.clone())).into(),
            Self::Caption => Tag::Caption.into(),
        }
    }
}
