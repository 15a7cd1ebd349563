package virtual

// queue is a bounded first-in first-out ring that never grows. Its length is a power of two.
type queue[T any] struct {
	ring []T
	head uint32 // count of all taken
	tail uint32 // count of all put
}

func newQueue[T any](size int) queue[T] { return queue[T]{ring: make([]T, size)} }

func (q *queue[T]) len() int { return int(q.tail - q.head) }

// put reports false, and changes nothing, when the queue is full.
func (q *queue[T]) put(v *T) bool {
	if q.len() == len(q.ring) {
		return false
	}
	q.ring[q.tail&uint32(len(q.ring)-1)] = *v
	q.tail++
	return true
}

// first is the oldest entry. The queue must not be empty.
func (q *queue[T]) first() *T { return &q.ring[q.head&uint32(len(q.ring)-1)] }

// drop removes the oldest entry. The queue must not be empty.
func (q *queue[T]) drop() { q.head++ }

// take moves the oldest entries into dst and returns their number.
func (q *queue[T]) take(dst []T) int {
	n := min(len(dst), q.len())
	for i := range n {
		dst[i] = *q.first()
		q.drop()
	}
	return n
}

// clear forgets all entries.
func (q *queue[T]) clear() { q.head = q.tail }
