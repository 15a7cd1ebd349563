package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
)

// arm64Runner is what runs a program for arm64 on another processor: qemu's user mode (Debian qemu-user-static).
const arm64Runner = "qemu-aarch64-static"

// arm64Program builds holdfast for arm64. HOLDFAST_ARM64 names one that is built already.
func arm64Program(t *testing.T) string {
	t.Helper()
	if built := os.Getenv("HOLDFAST_ARM64"); built != "" {
		return built
	}
	program := filepath.Join(t.TempDir(), "holdfast-arm64")
	build := exec.Command("go", "build", "-o", program, ".")
	build.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	said, err := build.CombinedOutput()
	require.NoError(t, err, "%s", said)
	return program
}

// TestSixty_Arm64 judges the journals of the sixty runs with the program for arm64, which fuses multiplication and
// addition: what result.json says is the same to the last digit on either processor, but for what the circuit's
// fit says of its own uncertainty.
func TestSixty_Arm64(t *testing.T) {
	if testing.Short() {
		t.Skip("sixty runs judged by an emulated processor take a minute or two")
	}
	if runtime.GOARCH != "amd64" {
		t.Skip("this is not amd64: there is nothing to compare with")
	}
	qemu, err := exec.LookPath(arm64Runner)
	if err != nil {
		t.Skipf("no %s here (Debian package qemu-user-static): no record is judged for arm64", arm64Runner)
	}
	program, dir := arm64Program(t), t.TempDir()
	plans := map[string]sixtyPlan{}
	for i, s := range sixtyRuns() {
		p, known := plans[s.scenario]
		if !known {
			p.plan, p.rig = setup(t, s.scenario, s.rig)
			plans[s.scenario] = p
		}
		t.Run(s.String(), func(t *testing.T) {
			t.Parallel()
			folder := record.Folder{Path: filepath.Join(dir, fmt.Sprint(i))}
			require.NoError(t, os.Mkdir(folder.Path, 0o755))
			require.NoError(t, os.WriteFile(folder.Journal(), s.journal(t, p.plan, p.rig), 0o644))
			status, here, errOut := holdfast("report", folder.Path, "--json")
			require.Empty(t, errOut, status)
			there, err := exec.Command(qemu, program, "report", folder.Path, "--json").Output()
			if exit := (*exec.ExitError)(nil); err != nil {
				require.ErrorAs(t, err, &exit)
				require.Equal(t, status, exit.ExitCode(), "%s", exit.Stderr)
			}
			ours, how := comparable(t, here)
			theirs, _ := comparable(t, string(there))
			require.Equal(t, ours, theirs)
			if here != string(there) {
				t.Logf("differs in what the circuit's fit says of its own uncertainty: %v", how)
			}
		})
	}
}

// comparable is a result without what the fit of the circuit says of its own uncertainty: the covariance of a fit that one
// record hardly determines moves by tenths with the last digits of its sums. No verdict and no cause rests on it.
func comparable(t *testing.T, text string) (result map[string]any, left []string) {
	t.Helper()
	require.NoError(t, json.Unmarshal([]byte(text), &result))
	if circuit, ok := result["circuit"].(map[string]any); ok {
		delete(circuit, "correlation")
		left = append(left, "correlation")
		for _, p := range circuit["parameters"].([]any) {
			delete(p.(map[string]any), "expanded_uncertainty")
			delete(p.(map[string]any), "en") // a distance in units of it
		}
		left = append(left, "expanded_uncertainty")
	}
	return result, left
}
