; Not tried here: the installer for Windows, for Inno Setup 6, as packaging/builds.py calls it:
;   iscc /DVersion=… /DFrozen=… /DOut=… /DHere=… packaging\windows.iss
[Setup]
AppId=Evenpace
AppName=Evenpace
AppVersion={#Version}
DefaultDirName={autopf}\Evenpace
DefaultGroupName=Evenpace
PrivilegesRequiredOverridesAllowed=dialog
ChangesEnvironment=no
LicenseFile={#Here}\LICENSE
OutputDir={#Out}
OutputBaseFilename=evenpace-{#Version}-setup
ArchitecturesInstallIn64BitMode=x64compatible
UninstallDisplayIcon={app}\evenpace.exe

[Files]
Source: "{#Frozen}\evenpace\*"; DestDir: "{app}"; Flags: recursesubdirs
Source: "{#Frozen}\licences\*"; DestDir: "{app}\licences"; Flags: recursesubdirs

[Icons]
Name: "{group}\Evenpace"; Filename: "{app}\evenpace.exe"
