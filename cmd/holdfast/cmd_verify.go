package main

import (
	"crypto/ed25519"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/seal"
)

type verifyOptions struct {
	out, what string
	keys      []string
	json      bool
}

func newVerifyCommand() *cobra.Command {
	var o verifyOptions
	cmd := &cobra.Command{
		Use:   "verify RUN|CERTIFICATE",
		Short: "Find out whether a record or a certificate was changed",
		Long: `Holds every file of a run, or the run that a certificate (HTML or PDF) belongs to
with the certificate itself, against its seal: hashes and an Ed25519 signature. Each changed
file is named with the stretch of bytes that holds the change, and so is a record that lies in
another run's place. The key must be yours, one that you trust, or one that the shop's book let in;
with --key it must be one of those given. A key that lies among the records is never trusted.

A seal proves that nothing was changed since the key's holder sealed it. It does not prove
who held the key.

Status 0: nothing was changed. Status 1: something was, or is missing, or an unknown key
sealed it.` + exitHelp,
		Example: `  holdfast verify 20260304T1200
  holdfast verify certificate-C0001.pdf --key their-signing.pub`,
		Args: wants("RUN or CERTIFICATE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.what = args[0]
			return runVerify(o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringArrayVar(&o.keys, "key", nil, "public key file; nothing else is trusted then, repeatable")
	f.BoolVar(&o.json, "json", false, "print as JSON")
	addOutFlag(cmd, &o.out)
	return cmd
}

// verification is what the command shows.
type verification struct {
	Run         string         `json:"run"`
	Certificate string         `json:"certificate,omitempty"` // the file that was given
	Matches     bool           `json:"certificate_matches,omitempty"`
	Good        bool           `json:"good"`
	Seals       []*seal.Answer `json:"seals"`
	Unsealed    []string       `json:"unsealed"` // files in the folder that no seal covers
}

func runVerify(o verifyOptions, out io.Writer) error {
	runs, err := outFolder(o.out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	var keys []ed25519.PublicKey
	for _, path := range o.keys {
		k, err := seal.ReadPublic(path)
		if err != nil {
			return withStatus(exitUsage, err)
		}
		keys = append(keys, k)
	}
	folder, certificate, err := verified(runs, o.what)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	v := verification{Run: folder.Run, Certificate: certificate, Unsealed: []string{}}
	answers, stray, err := record.Verify(runs, folder, keys...)
	if err != nil {
		return withStatus(exitFail, err)
	}
	v.Seals, v.Unsealed = answers, append(v.Unsealed, stray...)
	if err := v.judge(folder); err != nil {
		return withStatus(exitUsage, err)
	}
	if o.json {
		err = printJSON(out, v)
	} else {
		v.show(out)
	}
	if err == nil && !v.Good {
		return withStatus(exitFail, nil)
	}
	return err
}

// verified finds the run that is meant: by its name, or by a certificate of it.
func verified(runs, what string) (folder record.Folder, certificate string, err error) {
	switch filepath.Ext(what) {
	case ".pdf", ".html":
		run, err := report.CertifiedRun(what)
		if err != nil {
			return folder, what, err
		}
		if folder, err = record.OpenFolder(filepath.Dir(what)); err == nil && folder.Run == run {
			return folder, what, nil
		}
		folder, err = record.Resolve(runs, run)
		return folder, what, err
	}
	folder, err = record.Resolve(runs, what)
	return folder, "", err
}

// judge says whether all is well; a certificate must be one that the run's seals know.
func (v *verification) judge(folder record.Folder) error {
	v.Good = true
	for _, a := range v.Seals {
		v.Good = v.Good && a.Good()
	}
	if v.Certificate == "" {
		return nil
	}
	hash, err := seal.HashFile(v.Certificate)
	if err != nil {
		return err
	}
	for _, a := range v.Seals {
		for _, f := range a.Statement.Files {
			v.Matches = v.Matches || f.SHA256 == hash
		}
	}
	v.Good = v.Good && v.Matches
	return nil
}

func (v *verification) show(out io.Writer) {
	fmt.Fprintf(out, "run %s\n", report.Plain(v.Run))
	if v.Certificate != "" {
		word := "is as it was given out"
		if !v.Matches {
			word = "IS NOT one that was given out for this run: it was changed"
		}
		fmt.Fprintf(out, "  %s %s\n", report.Plain(v.Certificate), word)
	}
	for _, a := range v.Seals {
		known := "a trusted key"
		if !a.Known {
			known = "NOT A KNOWN KEY"
		}
		fmt.Fprintf(out, "seal %s  signature %s, key %s (%s)\n", report.Plain(a.Name), a.Signature, a.Key,
			known)
		if a.Misplaced != "" {
			fmt.Fprintf(out, "  MISPLACED: %s\n", report.Plain(a.Misplaced))
		}
		for _, f := range a.Files {
			fmt.Fprintf(out, "  %-22s %s\n", report.Plain(f.Name), stateWords(f))
		}
	}
	for _, name := range v.Unsealed {
		fmt.Fprintf(out, "  %-22s not under any seal\n", report.Plain(name))
	}
	if v.Good {
		fmt.Fprintln(out, "Nothing was changed.")
		return
	}
	fmt.Fprintln(out, "CHANGED, or not sealed by a known key: do not rely on what is marked above.")
}

func stateWords(c seal.Check) string {
	switch c.State {
	case seal.Changed:
		return fmt.Sprintf("CHANGED between byte %d and %d", c.From, c.To)
	case seal.Missing:
		return "MISSING"
	}
	return string(c.State)
}
