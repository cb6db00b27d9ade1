// Package configs reads site files and carries what is shipped with the program:
// an example site and the occupational limits of countries.
//
// [Load] is the first call; [Parse] does the same for bytes in hand. Both give
// the site normalised, every default filled in, with warnings for what is allowed
// but will not end well (a gate that can never open, a channel that nothing
// feeds). [Example] is a site file that teaches its keys.
//
// A site file is strict YAML. Refused, each with file, line and column, and all
// of them at once: unknown keys, keys given twice, values of a wrong type, names
// that point nowhere, figures that cannot be, protocols that loosen a built-in
// figure, and anything that looks like a secret. Also refused, because they let a
// line mean something other than what it shows: anchors, aliases, tags, merge
// keys, numbers with a leading zero, and a 0 or "" where the key could be left
// out. An error comes without a site: nothing is ever half read.
package configs
