// Package server is Farbay's web server: it wires database, photo storage,
// pages, mail and background jobs together ([App]), decides who may reach which
// address in one table ([App.Routes]), and turns requests into steps of package
// flow and their results into pages.
//
// Handlers are thin: they read a form, call a step, and show a page struct of
// package views. They return errors; one place turns an error's code into a
// status and a page.
package server
