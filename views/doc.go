// Package views turns typed page structs into HTML, and typed letters into the
// text of e-mails.
//
// Every page is a struct that embeds [Frame] and names its template; [New]
// parses all of them once and fails when one is missing. [Set.Render] writes a
// page, [Set.RenderPiece] a part of one (the next entries of a journal), and
// [Set.Letter] an e-mail. [Set.Assets] serves style sheets, scripts and the
// font under addresses that carry the hash of their content.
//
// Pages carry no style attributes and no inline scripts or styles: the policy
// they are served under is
//
//	default-src 'none'; img-src 'self' data: blob:; style-src 'self';
//	script-src 'self'; font-src 'self'; connect-src 'self';
//	form-action 'self'; frame-ancestors 'none'; base-uri 'none'
//
// Everything that reads, signs or pays works with scripts off.
//
// The package formats and decides nothing: amounts, dates and permissions come
// in with the struct. Times and money are said by [Words], which knows the
// shop's zone and currency and what time it is.
package views
