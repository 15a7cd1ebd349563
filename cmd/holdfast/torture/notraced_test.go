//go:build !race

package torture

const raced = false
