package journal

// CanRead reports whether p may see the build at all. Staff see every build;
// an owner-role person sees those they are a current member of. member is
// their record for this build, nil when there is none.
func CanRead(p Person, member *Member) bool {
	if !p.Active() {
		return false
	}
	return p.Role.Staff() || member != nil && member.EndedAt.IsZero()
}

// CanDecide reports whether p may sign or decline this build's papers: only a
// current owner or delegate may; the shop never decides for an owner.
func CanDecide(p Person, member *Member) bool {
	return p.Active() && p.Role == Owner && member != nil && member.EndedAt.IsZero()
}
