//! From the core's types to mirrors of them.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::hash::Hash;

use chrono::NaiveDate;
use pointdown_core::book::money::Amount;
use pointdown_core::record::{Fields, Id, Instant, Lot};
use serde_json::Value;

/// What a value of the core looks like to an app.
pub(crate) trait Mirror<T> {
    fn mirror(self) -> T;
}

macro_rules! as_it_is {
    ($($ty:ty),*) => { $(impl Mirror<$ty> for $ty {
        fn mirror(self) -> $ty {
            self
        }
    })* };
}
as_it_is!(bool, u32, u64, i64, f64, String);

macro_rules! as_text {
    ($($ty:ty),*) => { $(impl Mirror<String> for $ty {
        fn mirror(self) -> String {
            self.to_string()
        }
    })* };
}
as_text!(Amount, Id, NaiveDate, Lot, &str, Value);

impl Mirror<i64> for Instant {
    fn mirror(self) -> i64 {
        self.ms()
    }
}

impl Mirror<u64> for usize {
    fn mirror(self) -> u64 {
        self as u64
    }
}

impl Mirror<String> for Fields {
    fn mirror(self) -> String {
        Value::Object(self).to_string()
    }
}

impl<A: Mirror<B>, B> Mirror<Option<B>> for Option<A> {
    fn mirror(self) -> Option<B> {
        self.map(Mirror::mirror)
    }
}

impl<A: Mirror<B>, B> Mirror<Vec<B>> for Vec<A> {
    fn mirror(self) -> Vec<B> {
        self.into_iter().map(Mirror::mirror).collect()
    }
}

impl<A: Mirror<B>, B> Mirror<Vec<B>> for BTreeSet<A> {
    fn mirror(self) -> Vec<B> {
        self.into_iter().map(Mirror::mirror).collect()
    }
}

impl<K: Mirror<L>, L: Eq + Hash, A: Mirror<B>, B> Mirror<HashMap<L, B>> for BTreeMap<K, A> {
    fn mirror(self) -> HashMap<L, B> {
        self.into_iter()
            .map(|(key, value)| (key.mirror(), value.mirror()))
            .collect()
    }
}

/// A record that mirrors a struct of the core, field by field; `name = other` where the names
/// differ.
macro_rules! mirror_record {
    (
        $(#[$about:meta])*
        $name:ident of $core:path {
            $($(#[$field_about:meta])* $field:ident $(= $source:ident)? : $ty:ty,)*
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq, uniffi::Record)]
        pub struct $name {
            $($(#[$field_about])* pub $field: $ty,)*
        }

        impl $crate::mirror::Mirror<$name> for $core {
            fn mirror(self) -> $name {
                $name {
                    $($field: $crate::mirror::Mirror::mirror(
                        $crate::mirror::source!(self, $field $(, $source)?)
                    ),)*
                }
            }
        }
    };
}

macro_rules! source {
    ($from:ident, $field:ident) => {
        $from.$field
    };
    ($from:ident, $field:ident, $source:ident) => {
        $from.$source
    };
}

/// An enum without fields that mirrors one of the core; `both` where apps also say it.
macro_rules! mirror_words {
    (
        $(#[$about:meta])*
        $name:ident of $core:path {
            $($(#[$word_about:meta])* $word:ident,)*
        } $($both:ident)?
    ) => {
        $(#[$about])*
        #[derive(
            Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, uniffi::Enum,
        )]
        #[serde(rename_all = "snake_case")]
        pub enum $name {
            $($(#[$word_about])* $word,)*
        }

        impl $crate::mirror::Mirror<$name> for $core {
            fn mirror(self) -> $name {
                match self {
                    $(Self::$word => $name::$word,)*
                }
            }
        }

        $crate::mirror::back!($name, $core, [$($word)*] $($both)?);
    };
}

macro_rules! back {
    ($name:ident, $core:path, [$($word:ident)*]) => {};
    ($name:ident, $core:path, [$($word:ident)*] both) => {
        impl From<$name> for $core {
            fn from(word: $name) -> $core {
                match word {
                    $($name::$word => <$core>::$word,)*
                }
            }
        }
    };
}

pub(crate) use {back, mirror_record, mirror_words, source};
