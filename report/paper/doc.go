// Package paper is what a report says, before it is known whether it becomes a page
// on a screen or a sheet of paper.
//
// Fill in a [Document] with blocks in the order of reading: [Heading], [Paragraph],
// [Caution], [Terms], [Table], [Picture], [List] and [Signatures]. Then
// [Document.WriteHTML] writes one self-contained page that prints on A4, and
// [Document.WritePDF] a file of A4 pages with fonts and charts as lines in it. A Document
// is data alone: it knows no clock, no log and no units, and the same Document gives the
// same bytes.
//
// WritePDF refuses scripts that have to be shaped; the page has no such limit.
//
// Texts are plain, never markup. A line break in a text is a line break on the paper; a
// no-break space (U+00A0) keeps a figure with its unit and the parts of a time together.
package paper
