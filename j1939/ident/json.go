package ident

import (
	"encoding/json"
	"fmt"

	"holdfast/j1939/spn"
)

// MarshalJSON writes the characters as they are, escaped as JSON does; null for a missing field.
func (t Text) MarshalJSON() ([]byte, error) {
	if t == nil {
		return []byte("null"), nil
	}
	runes := make([]rune, len(t))
	for i, c := range t {
		runes[i] = rune(c)
	}
	return json.Marshal(string(runes))
}

// UnmarshalJSON reads what MarshalJSON wrote; a character beyond ISO Latin 1 is refused.
func (t *Text) UnmarshalJSON(b []byte) error {
	var text *string
	if err := json.Unmarshal(b, &text); err != nil {
		return fmt.Errorf("read a text field: %w", err)
	}
	if text == nil {
		*t = nil
		return nil
	}
	read := Text{}
	for _, r := range *text {
		if r > 0xFF {
			return fmt.Errorf("read a text field: %q is no character of ISO Latin 1", r)
		}
		read = append(read, byte(r))
	}
	*t = read
	return nil
}

// hoursJSON is Hours in JSON: a number only when it is valid, its status only when it is not.
type hoursJSON struct {
	Hours             *float64 `json:"hours"`
	HoursStatus       string   `json:"hours_status,omitempty"`
	Revolutions       *float64 `json:"revolutions"`
	RevolutionsStatus string   `json:"revolutions_status,omitempty"`
}

// MarshalJSON writes a number only when its status is valid, and another status in words beside null.
func (h Hours) MarshalJSON() ([]byte, error) {
	var j hoursJSON
	j.Hours, j.HoursStatus = shownNumber(h.Hours, h.HoursStatus)
	j.Revolutions, j.RevolutionsStatus = shownNumber(h.Revolutions, h.RevolutionsStatus)
	return json.Marshal(j)
}

func shownNumber(v float64, s spn.Status) (number *float64, status string) {
	if s == spn.Valid {
		return &v, ""
	}
	return nil, s.String()
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (h *Hours) UnmarshalJSON(b []byte) (err error) {
	var j hoursJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return fmt.Errorf("read hours: %w", err)
	}
	if h.Hours, h.HoursStatus, err = readNumber(j.Hours, j.HoursStatus); err != nil {
		return fmt.Errorf("read hours: %w", err)
	}
	if h.Revolutions, h.RevolutionsStatus, err = readNumber(j.Revolutions, j.RevolutionsStatus); err != nil {
		return fmt.Errorf("read revolutions: %w", err)
	}
	return nil
}

func readNumber(number *float64, status string) (float64, spn.Status, error) {
	if number != nil {
		return *number, spn.Valid, nil
	}
	for s := spn.Absent; s < spn.Unknown; s++ {
		if s != spn.Valid && s.String() == status {
			return 0, s, nil
		}
	}
	return 0, spn.Absent, fmt.Errorf("no number, and %q is no status of a parameter", status)
}
